"""What can be thrown away: log-ins, invitations, drafts, running states, staged files."""

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

from lots.models.house import Place
from lots.models.lot import Load
from lots.models.people import Person
from lots.models.plan import Plan, PlanVersion
from lots.models.visit import Visit


class LoginManager(BaseUserManager["Login"]):
    def get_by_natural_key(self, username: str | None) -> "Login":
        return self.select_related("person").get(username=username)


class Login(AbstractBaseUser):
    """How a person proves who they are; the person is the kept row."""

    username = models.CharField(max_length=60, unique=True)
    person = models.OneToOneField(Person, models.PROTECT, related_name="login")
    is_active = models.BooleanField(default=True)
    pin = models.CharField(max_length=200, blank=True)  # its hash; "" until one is chosen

    USERNAME_FIELD = "username"
    objects = LoginManager()


class Invitation(models.Model):
    """A one-time code, kept as its digest, with which a person sets their own password."""

    code_sha256 = models.CharField(max_length=64, unique=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="invitations")
    expires_at = models.BigIntegerField()


class PinTry(models.Model):
    """Wrong PINs typed for a person from one address since the last right one."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    address = models.CharField(max_length=64)
    failures = models.PositiveIntegerField(default=0)
    last_at = models.BigIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["person", "address"], name="one_count_a_person_and_address"
            )
        ]


class CheckTry(models.Model):
    """A file that was given to be checked from an address."""

    address = models.CharField(max_length=64)
    at = models.BigIntegerField()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["address", "at"])]


class PlanDraft(models.Model):
    """A plan being edited; publishing freezes it as a version."""

    plan = models.ForeignKey(Plan, models.PROTECT, null=True, related_name="drafts")
    base = models.ForeignKey(PlanVersion, models.PROTECT, null=True, related_name="+")
    title = models.CharField(max_length=200)
    content = models.TextField()
    changed_at = models.BigIntegerField(default=0)


class RunningState(models.Model):
    """The folds of a limit over a load so far; rebuilt to the same bytes when thrown away."""

    load = models.ForeignKey(Load, models.CASCADE, related_name="states")
    plan_version = models.ForeignKey(PlanVersion, models.CASCADE, related_name="+")
    limit_id = models.CharField(max_length=120)
    states = models.TextField()
    last_at = models.TextField(default="{}")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["load", "plan_version", "limit_id"], name="one_state_a_limit"
            )
        ]


class LoadPicture(models.Model):
    """The coarse picture of the probes in a load's fish, in which a flat one shows."""

    load = models.OneToOneField(Load, models.CASCADE, related_name="picture")
    picture = models.BinaryField()


class Checkpoint(models.Model):
    """All running states of a load as they were after every reading up to a moment, so that a reading
    that comes late is folded from there."""

    load = models.ForeignKey(Load, models.CASCADE, related_name="checkpoints")
    at = models.BigIntegerField()
    content = models.BinaryField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["load", "at"], name="one_checkpoint_a_moment")
        ]


class StagedFile(models.Model):
    """A logger's file that was uploaded and waits for the person to say that it was understood."""

    sha256 = models.CharField(max_length=64)
    name = models.CharField(max_length=200)
    size = models.BigIntegerField()
    place = models.ForeignKey(Place, models.CASCADE, related_name="+")
    load = models.ForeignKey(Load, models.CASCADE, null=True, related_name="+")
    choices = models.TextField(default="{}")
    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    at = models.BigIntegerField()


class VisitKey(models.Model):
    """What opens a visit: the digest of a one-time code ("" once it was used), then that of the
    session that used it."""

    visit = models.OneToOneField(Visit, models.CASCADE, related_name="key")
    code_sha256 = models.CharField(max_length=64, blank=True, db_index=True)
    session_sha256 = models.CharField(max_length=64, blank=True)
