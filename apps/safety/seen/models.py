"""Answers given to people, and what a later correction says about them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.land.models import Block
from apps.people.models import FarmOwned
from apps.safety.rules import Word
from apps.safety.seen.rules import How

_PERSON = settings.AUTH_USER_MODEL


class AnswerGiven(FarmOwned):
    """One answer about entry that one person got. Only grows; never served as an answer again."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    person = models.ForeignKey(_PERSON, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    about_at = models.DateTimeField()
    good_until = models.DateTimeField()
    answer = models.CharField(max_length=8)
    activity = models.CharField(max_length=30, blank=True)
    rest = models.BooleanField(default=False, help_text="Asked about the ground outside the mapped parts")
    how = models.CharField(max_length=8)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(answer__in=[w.value for w in Word]), name="answer_given_word_known"),
            models.CheckConstraint(condition=Q(how__in=[h.value for h in How]), name="answer_given_how_known"),
        ]
        indexes = [
            models.Index(fields=["block", "good_until"], condition=Q(answer=Word.YES), name="answer_given_yes"),
            models.Index(fields=["farm", "asked_at"], name="answer_given_by_time"),
        ]

    def __str__(self) -> str:
        return f"{self.answer} for {self.block}"


class PossibleExposure(FarmOwned):
    """Something recorded later says that people who had a yes may have been in closed ground. Only grows."""

    block = models.ForeignKey(Block, on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=60)
    found_at = models.DateTimeField()
    products = models.JSONField(default=list)
    people = models.JSONField(help_text="Who had which answer from when until when")

    class Meta:
        indexes = [models.Index(fields=["farm", "found_at"], name="exposure_by_time")]

    def __str__(self) -> str:
        return f"possible exposure in {self.block}"
