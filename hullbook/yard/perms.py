"""Who may do what. One table; a right is a role row of the person, checked where the thing to act on is fetched."""

from enum import Enum

from django.core.exceptions import PermissionDenied

from hullbook.yard.enums import Role
from hullbook.yard.models import Person
from hullbook.yard.selectors import roles_of

B, Q, O = Role.BUILDER, Role.QUALITY_LEAD, Role.OFFICE  # noqa: E741 - the table below reads by these


class Act(Enum):
    """What can be done, in the words of a refusal, and the roles that may do it."""

    READ = ("see the shed and its hulls", (B, Q, O))
    LOG = ("log work on a hull", (B, Q, O))
    STRIKE_OUT = ("strike out an entry", (B, Q, O))
    POUR = ("begin or close a pour", (B, Q))
    SIGN_TEST = ("sign a hold test", (Q,))
    WRITE_SCHEDULE = ("write a schedule", (Q, O))
    PLAN_RESIN = ("set a resin plan", (Q,))
    SIGN_SCHEDULE = ("sign a schedule", (Q,))
    LAY_DOWN = ("lay down a hull", (Q, O))
    CORRECT_CRAFT_NUMBER = ("correct a craft identification number", (Q,))
    LEAVE_YARD = ("log that a hull leaves the yard", (Q, O))
    RELEASE_HOLD_POINT = ("release a hold point", (Q,))
    RECEIVE = ("receive goods", (B, Q, O))
    WRITE_MATERIALS = ("write material sheets", (Q, O))
    RELEASE_LOT = ("release or reject a lot", (Q,))
    HOLD_LOT = ("hold a lot", (Q, O))
    DECIDE_FINDING = ("decide a finding", (Q,))
    TRACE = ("trace lots and hulls", (B, Q, O))
    ISSUE_DOSSIER = ("issue a dossier", (Q,))
    CHANGE_PEOPLE = ("name people and their roles", (Q,))
    CHANGE_LIMITS = ("set limits and instruments", (Q,))
    EXPORT = ("take out tables", (Q, O))

    def __init__(self, words: str, roles: tuple[Role, ...]) -> None:
        self.words = words
        self.roles = frozenset(roles)


def may(person: Person, act: Act) -> bool:
    return bool(roles_of(person.initials) & act.roles)


def require(person: Person, act: Act) -> None:
    if not may(person, act):
        roles = " or ".join(sorted(role.label for role in act.roles))
        raise PermissionDenied(f"To {act.words} you need the role {roles}.")
