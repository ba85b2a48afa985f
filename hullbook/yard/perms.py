"""Who may do what, and how they must be known for it. One table; a right is a role row of the person, checked where the
thing to act on is fetched.
"""

from enum import Enum, IntEnum

from django.core.exceptions import PermissionDenied

from hullbook.yard.enums import Role
from hullbook.yard.models import Person
from hullbook.yard.selectors import roles_of

B, Q, O = Role.BUILDER, Role.QUALITY_LEAD, Role.OFFICE  # noqa: E741 - the table below reads by these


class Known(IntEnum):
    """How somebody is known, at the least, for an act. Who has signed in with a password is known for all of them."""

    NOBODY = 0  # whoever stands before a tablet of the shed
    TILE = 1
    PIN = 2
    PASSWORD = 3


class Act(Enum):
    """What can be done, in the words of a refusal; the roles that may; how they must be known on a shared tablet."""

    READ = ("see the shed and its hulls", (B, Q, O), Known.NOBODY)
    LOG = ("log work on a hull", (B, Q, O), Known.TILE)
    STRIKE_OUT = ("strike out an entry", (B, Q, O), Known.TILE)
    POUR = ("begin or close a pour", (B, Q), Known.TILE)
    SIGN_TEST = ("sign a hold test", (Q,), Known.PIN)
    WRITE_SCHEDULE = ("write a schedule", (Q, O), Known.TILE)
    PLAN_RESIN = ("set a resin plan", (Q,), Known.TILE)
    READ_POUR_PLAN = ("work out a pour plan and read it to the crew", (Q,), Known.TILE)
    SIGN_SCHEDULE = ("sign a schedule", (Q,), Known.PIN)
    LAY_DOWN = ("lay down a hull", (Q, O), Known.TILE)
    ARRANGE_SHED = ("say where bays, moulds and hulls lie in the shed", (Q, O), Known.TILE)
    CORRECT_CRAFT_NUMBER = ("correct a craft identification number", (Q,), Known.TILE)
    LEAVE_YARD = ("log that a hull leaves the yard", (Q, O), Known.TILE)
    RELEASE_HOLD_POINT = ("release a hold point", (Q,), Known.PIN)
    RECEIVE = ("receive goods", (B, Q, O), Known.TILE)
    WRITE_MATERIALS = ("write material sheets", (Q, O), Known.PASSWORD)
    RELEASE_LOT = ("release or reject a lot", (Q,), Known.PIN)
    HOLD_LOT = ("hold a lot", (Q, O), Known.PIN)
    DECIDE_FINDING = ("decide a finding", (Q,), Known.PIN)
    TRACE = ("trace lots and hulls", (B, Q, O), Known.TILE)
    ISSUE_DOSSIER = ("issue a dossier", (Q,), Known.PIN)
    CHANGE_PEOPLE = ("name people and their roles", (Q,), Known.PASSWORD)
    CHANGE_LIMITS = ("set limits and instruments", (Q,), Known.PASSWORD)
    SET_OWN_PIN = ("set your own PIN", (B, Q, O), Known.PASSWORD)
    ENROL_TABLETS = ("enrol or lift a tablet", (Q,), Known.PASSWORD)
    EXPORT = ("take out tables", (Q, O), Known.PASSWORD)

    def __init__(self, words: str, roles: tuple[Role, ...], known: Known) -> None:
        self.words = words
        self.roles = frozenset(roles)
        self.known = known


class NobodyLit(Exception):
    """The act wants a name, and no tile is lit on the tablet it is asked for on."""


def may(person: Person, act: Act) -> bool:
    """Whether to draw a key: with nobody lit, also for what the tablet will ask the name for."""
    if person.tablet is not None and act.known is Known.PASSWORD:
        return False
    if person.is_nobody:
        return person.tablet is not None and act.known <= Known.TILE
    return bool(_roles_for(person, act) & act.roles)


def _roles_for(person: Person, act: Act) -> frozenset[Role]:
    """The roles held now; for work that waited on a tablet also those held at the tap, as it was done by then."""
    roles = roles_of(person.initials)
    if person.tapped_at is not None and act.known <= Known.TILE:
        roles |= roles_of(person.initials, person.tapped_at)
    return roles


def signs_something(roles: frozenset[Role]) -> bool:
    return any(act.known is Known.PIN and roles & act.roles for act in Act)


def require(person: Person, act: Act) -> None:
    """Stop whoever may not; for an act of signing on a tablet, leave word that its form asks for the PIN."""
    if person.tablet is not None:
        if act.known is Known.PASSWORD:
            raise PermissionDenied(
                f"To {act.words}, sign in with your password at a computer; on a tablet of the shed nobody can."
            )
        if person.is_nobody:
            if act.known is Known.NOBODY:
                return
            raise NobodyLit(act.words)
        if act.known is Known.PIN:
            person.must_sign = True
    if not may(person, act):
        roles = " or ".join(sorted(role.label for role in act.roles))
        raise PermissionDenied(f"To {act.words} you need the role {roles}.")
