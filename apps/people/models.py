"""Farms, the people who work on them, and the keys they hold."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q

from apps.people.managers import FarmScoped
from apps.people.rules import Role, held


class PersonManager(BaseUserManager["Person"]):
    def create_user(self, username: str, password: str | None = None, **extra: Any) -> Person:
        person = self.model(username=self.model.normalize_username(username), **extra)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """One human being with one log-in; never shared."""

    username = models.CharField(
        max_length=60,
        unique=True,
        validators=[RegexValidator(r"^[a-z0-9][a-z0-9._-]{2,59}$", "Use 3 to 60 small letters, digits, dot or dash.")],
    )
    full_name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=30, blank=True)
    language = models.CharField(max_length=5, default="en")
    born_on = models.DateField(null=True, blank=True)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    objects = PersonManager()
    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["full_name"]

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(language__in=["en", "es"]), name="person_language_known")]

    def __str__(self) -> str:
        return self.full_name

    @property
    def person_id(self) -> int:
        return int(self.pk)

    @property
    def name(self) -> str:
        return self.full_name


class Farm(models.Model):
    """One farm's book. Everything else belongs to exactly one of these."""

    slug = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=60)
    latitude = models.DecimalField(max_digits=9, decimal_places=6)
    longitude = models.DecimalField(max_digits=9, decimal_places=6)
    jurisdiction = models.CharField(max_length=20, help_text="State or province whose pesticide rules apply")
    contact_name = models.CharField(max_length=120)
    contact_phone = models.CharField(max_length=30)
    entry_good_minutes = models.PositiveSmallIntegerField(default=30)
    keep_answers = models.BooleanField(default=False, help_text="Keep which answer about entry each person got")
    created_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(latitude__gte=-90, latitude__lte=90), name="farm_latitude_real"),
            models.CheckConstraint(condition=Q(longitude__gte=-180, longitude__lte=180), name="farm_longitude_real"),
            models.CheckConstraint(
                condition=Q(entry_good_minutes__gte=1, entry_good_minutes__lte=240), name="farm_entry_good_minutes_sane"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FarmOwned(models.Model):
    """A row of exactly one farm. Read it with ``Model.objects.for_farm(farm)``.

    ``rows`` is the unscoped manager that Django's own machinery needs (relations, migrations);
    a test keeps application code away from it outside sweeps and record checks.
    """

    farm = models.ForeignKey(Farm, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)

    rows: ClassVar[models.Manager[Any]] = models.Manager()
    objects: ClassVar[FarmScoped[Any]] = FarmScoped()

    class Meta:
        abstract = True


class Membership(FarmOwned):
    """A person's place on a farm, with one or more roles."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    is_manager = models.BooleanField(default=False)
    is_applicator = models.BooleanField(default=False)
    is_staff_member = models.BooleanField(default=False)
    family = models.BooleanField(default=False, help_text="Owner, or of an owner's immediate family: 40 CFR 170.601(a)")
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["farm", "person"], name="membership_once_per_farm"),
            models.CheckConstraint(
                condition=Q(is_manager=True) | Q(is_applicator=True) | Q(is_staff_member=True),
                name="membership_has_a_role",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} on {self.farm}"

    @property
    def roles(self) -> frozenset[Role]:
        return held(manager=self.is_manager, applicator=self.is_applicator, staff=self.is_staff_member)


class Invitation(FarmOwned):
    """A manager's invitation; the code is shown once and only its hash is kept."""

    code_hash = models.CharField(max_length=64, unique=True)
    full_name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    roles = models.JSONField()
    invited_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True)
    accepted_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"invitation for {self.full_name}"


class ApiToken(FarmOwned):
    """A key for programs: one person on one farm. Only the hash of the secret is kept."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="tokens")
    name = models.CharField(max_length=80)
    prefix = models.CharField(max_length=12, unique=True)
    secret_hash = models.CharField(max_length=64)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"key {self.prefix} “{self.name}”"
