"""The yard, its people and what they may do, its devices, instruments, limits and climate."""

from datetime import datetime
from hashlib import sha256
from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from hullbook.quantities.fields import MeasuredField
from hullbook.records.models import LogRow, TypedRow
from hullbook.yard.enums import InstrumentKind, LimitName, Role


class PersonManager(BaseUserManager["Person"]):
    def create_person(self, *, initials: str, full_name: str, sign_in_name: str, password: str | None) -> "Person":
        person = self.model(initials=initials, full_name=full_name, sign_in_name=sign_in_name)
        person.set_password(password)
        person.full_clean()
        person.save()
        return person


class Person(AbstractBaseUser):
    """Somebody who works on hulls. The initials stand in every entry and are never given to another person."""

    initials = models.CharField(
        max_length=4,
        unique=True,
        validators=[RegexValidator(r"^[A-Z]{2,4}\Z", "Initials are two to four capital letters, as KJ.")],
        error_messages={"unique": "These initials are taken, and stay with their person for ever."},
    )
    full_name = models.CharField(max_length=80)
    sign_in_name = models.CharField(
        max_length=60, unique=True, error_messages={"unique": "Another person signs in by this name."}
    )
    is_active = models.BooleanField(default=True)
    pin = models.CharField(max_length=128, blank=True, help_text="A slow hash; see yard.services.give_pin.")
    pin_misses = models.PositiveSmallIntegerField(default=0)

    # For one request: the shared tablet this person's tile is lit on, and whether the act asked for is one of signing.
    tablet: "Tablet | None" = None
    must_sign = False
    # And when it was tapped, where it waited on the tablet since.
    tapped_at: datetime | None = None

    objects = PersonManager()

    USERNAME_FIELD = "sign_in_name"
    REQUIRED_FIELDS: ClassVar = ["initials", "full_name"]

    class Meta:
        ordering: ClassVar = ["initials"]

    def __str__(self) -> str:
        return f"{self.initials} {self.full_name}"

    @property
    def is_nobody(self) -> bool:
        """No tile is lit on the tablet; see yard.middleware."""
        return self.pk is None

    @property
    def account(self) -> str:
        """How this person was known, as an entry keeps it."""
        if self.tablet is None:
            return self.sign_in_name
        return f"tablet:{self.tablet.name}{' by PIN' if self.must_sign else ''}"


class PinGiven(TypedRow):
    """From here on a person signs with another PIN; the PIN itself is never in the book."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"a PIN for {self.person.initials}"


class RoleChange(TypedRow):
    """From here on a person holds a role, or no longer does."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="role_changes")
    role = models.CharField(max_length=20, choices=Role.choices)
    holds = models.BooleanField()

    def __str__(self) -> str:
        return f"{self.person.initials} {'is' if self.holds else 'is no longer'} {self.role}"


class Device(models.Model):
    """A tablet or browser that entries come from."""

    code = models.CharField(max_length=40, unique=True)
    first_seen_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.code


class TabletEnrolled(TypedRow):
    """From here on a browser is one of the shed's tablets."""

    device = models.OneToOneField(Device, on_delete=models.PROTECT, related_name="enrolment")
    name = models.CharField(max_length=40)

    def __str__(self) -> str:
        return f"{self.name} enrolled"


class TabletLifted(TypedRow):
    """From here on it is not."""

    enrolment = models.OneToOneField(
        TabletEnrolled,
        on_delete=models.PROTECT,
        related_name="lifted",
        error_messages={"unique": "It is lifted already."},
    )

    def __str__(self) -> str:
        return f"{self.enrolment.name} lifted"


class Tablet(models.Model):
    """What an enrolled tablet is known by, who is on its crew strip and whose tile is lit. No part of the book."""

    enrolment = models.OneToOneField(TabletEnrolled, primary_key=True, on_delete=models.PROTECT, related_name="tablet")
    key_hash = models.CharField(max_length=64, unique=True)
    last_seen_at = models.DateTimeField()
    strip = models.ManyToManyField(Person, related_name="+")
    lit = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        return self.enrolment.name

    @property
    def device(self) -> Device:
        return self.enrolment.device

    @staticmethod
    def hash_of(key: str) -> str:
        """A key is 256 random bits, too many to try; a quick hash keeps it as well as a slow one."""
        return sha256(key.encode()).hexdigest()


class SignIn(LogRow):
    """Who came in by the door, or tried to."""

    sign_in_name = models.CharField(max_length=150)
    at = models.DateTimeField(auto_now_add=True)
    address = models.GenericIPAddressField(null=True)
    succeeded = models.BooleanField()

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"{self.sign_in_name} {self.at:%Y-%m-%d %H:%M}"


class Yard(TypedRow):
    """The yard's name and place; the latest row is in force."""

    name = models.CharField(max_length=80)
    place = models.CharField(max_length=120, blank=True)
    altitude_m = MeasuredField(default=0.0, decimal_places=1)
    builder_codes = models.CharField(
        max_length=80, blank=True, help_text="The builder's own codes, as MWB, with blanks between."
    )
    is_invented = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name


class Bay(TypedRow):
    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)

    def __str__(self) -> str:
        return self.name


class Instrument(TypedRow):
    code = models.CharField(max_length=20, unique=True)
    kind = models.CharField(max_length=20, choices=InstrumentKind.choices)
    name = models.CharField(max_length=80)
    serial_number = models.CharField(max_length=60)
    resolution = MeasuredField(help_text="In the unit the instrument shows.")
    unit = models.CharField(max_length=12, blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(resolution__gt=0),
                name="instrument_resolution_above_zero",
                violation_error_message="The resolution is above nought.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Calibration(TypedRow):
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField()
    due_on = models.DateField()
    certificate_number = models.CharField(max_length=60)
    standard_uncertainty_percent = MeasuredField(default=0.0, help_text="Of the reading, one standard uncertainty.")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(due_on__gt=F("calibrated_on")),
                name="calibration_due_after_it_was_made",
                violation_error_message="The due date lies after the day of calibration.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.instrument.code} due {self.due_on}"


class YardLimit(TypedRow):
    """A limit of the yard's own procedure; the latest current row of a name is in force."""

    name = models.CharField(max_length=30, choices=LimitName.choices)
    low = MeasuredField(null=True, blank=True)
    high = MeasuredField(null=True, blank=True)
    over_minutes = MeasuredField(null=True, blank=True)
    source = models.CharField(max_length=300)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(low__isnull=False) | Q(high__isnull=False),
                name="yardlimit_has_a_bound",
                violation_error_message="Give a lowest value, a highest value or both.",
            ),
            models.CheckConstraint(
                condition=~Q(name=LimitName.HOLD_RISE)
                | Q(over_minutes__isnull=False, over_minutes__gt=0, high__isnull=False, high__gt=0),
                name="yardlimit_hold_rise_over_minutes",
                violation_error_message="A hold-test limit is a greatest rise over stated minutes: give both.",
            ),
        ]

    def __str__(self) -> str:
        return str(self.get_name_display())


class ClimateReading(TypedRow):
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="climate_readings")
    place = models.CharField(max_length=80, blank=True)
    air_temperature_c = MeasuredField(decimal_places=2)
    humidity_percent = MeasuredField(decimal_places=2)
    surface_temperature_c = MeasuredField(null=True, blank=True, decimal_places=2)
    dew_point_c = MeasuredField(decimal_places=2)
    thermometer = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    hygrometer = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(humidity_percent__gt=0, humidity_percent__lte=100),
                name="climatereading_humidity_is_percent",
                violation_error_message="Relative humidity lies above 0 and at most at 100 %.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.air_temperature_c} °C, {self.humidity_percent} %"
