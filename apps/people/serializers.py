"""Shapes of people in and out."""

from __future__ import annotations

from rest_framework import serializers

from apps.people.rules import Role

ROLES = [r.value for r in Role]


class FarmOut(serializers.Serializer):
    slug = serializers.SlugField()
    name = serializers.CharField()
    time_zone = serializers.CharField()
    latitude = serializers.DecimalField(max_digits=9, decimal_places=6)
    longitude = serializers.DecimalField(max_digits=9, decimal_places=6)
    jurisdiction = serializers.CharField()
    contact_name = serializers.CharField()
    contact_phone = serializers.CharField()
    entry_good_minutes = serializers.IntegerField()
    keep_answers = serializers.BooleanField()
    version = serializers.IntegerField()


class FarmEdit(serializers.Serializer):
    name = serializers.CharField(max_length=120)
    time_zone = serializers.CharField(max_length=60)
    latitude = serializers.DecimalField(max_digits=9, decimal_places=6, min_value=-90, max_value=90)
    longitude = serializers.DecimalField(max_digits=9, decimal_places=6, min_value=-180, max_value=180)
    jurisdiction = serializers.CharField(max_length=20)
    contact_name = serializers.CharField(max_length=120)
    contact_phone = serializers.CharField(max_length=30)
    entry_good_minutes = serializers.IntegerField(min_value=1, max_value=240, default=30)
    keep_answers = serializers.BooleanField(default=False)


class FarmIn(FarmEdit):
    slug = serializers.SlugField(max_length=40)


class MemberOut(serializers.Serializer):
    id = serializers.IntegerField()
    person_id = serializers.IntegerField()
    full_name = serializers.CharField(source="person.full_name")
    username = serializers.CharField(source="person.username")
    phone = serializers.CharField(source="person.phone")
    born_on = serializers.DateField(source="person.born_on", allow_null=True)
    roles = serializers.SerializerMethodField()
    active = serializers.BooleanField()
    family = serializers.BooleanField(help_text="Owner, or of an owner's immediate family (40 CFR 170.601(a))")
    version = serializers.IntegerField()

    def get_roles(self, row: object) -> list[str]:
        return sorted(r.value for r in row.roles)  # type: ignore[attr-defined]


class BirthDateIn(serializers.Serializer):
    born_on = serializers.DateField(allow_null=True)


class PlaceEdit(serializers.Serializer):
    roles = serializers.ListField(child=serializers.ChoiceField(choices=ROLES), min_length=1)
    active = serializers.BooleanField()
    family = serializers.BooleanField(required=False, help_text="Left as it is when not sent")


class InvitationOut(serializers.Serializer):
    id = serializers.IntegerField()
    full_name = serializers.CharField()
    email = serializers.CharField()
    roles = serializers.ListField(child=serializers.ChoiceField(choices=ROLES))
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    accepted_at = serializers.DateTimeField(allow_null=True)
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class InvitationMade(InvitationOut):
    code = serializers.CharField(help_text="Shown once. Give it to the person invited.")


class InvitationIn(serializers.Serializer):
    full_name = serializers.CharField(max_length=120)
    email = serializers.EmailField(required=False, allow_blank=True)
    roles = serializers.ListField(child=serializers.ChoiceField(choices=ROLES), min_length=1)


class AcceptIn(serializers.Serializer):
    code = serializers.CharField()
    username = serializers.CharField(required=False, help_text="Leave out when signed in.")
    password = serializers.CharField(required=False)
    full_name = serializers.CharField(required=False, max_length=120)
    phone = serializers.CharField(required=False, allow_blank=True, max_length=30)
    language = serializers.ChoiceField(required=False, choices=["en", "es"])


class TokenOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    prefix = serializers.CharField()
    created_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    last_used_at = serializers.DateTimeField(allow_null=True)
    revoked_at = serializers.DateTimeField(allow_null=True)


class TokenMade(TokenOut):
    key = serializers.CharField(help_text="Shown once.")


class TokenIn(serializers.Serializer):
    name = serializers.CharField(max_length=80)


class TokenByPassword(TokenIn):
    farm = serializers.SlugField()
    username = serializers.CharField()
    password = serializers.CharField()


class MeOut(serializers.Serializer):
    person_id = serializers.IntegerField()
    username = serializers.CharField()
    full_name = serializers.CharField()
    email = serializers.CharField()
    phone = serializers.CharField()
    language = serializers.CharField()


class MeEdit(serializers.Serializer):
    full_name = serializers.CharField(max_length=120)
    email = serializers.EmailField(allow_blank=True)
    phone = serializers.CharField(max_length=30, allow_blank=True)
    language = serializers.ChoiceField(choices=["en", "es"])


class PasswordIn(serializers.Serializer):
    old_password = serializers.CharField()
    new_password = serializers.CharField()
