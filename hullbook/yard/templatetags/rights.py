from django import template

from hullbook.yard.models import Person
from hullbook.yard.perms import Act
from hullbook.yard.perms import may as person_may

register = template.Library()


@register.filter
def may(person: Person, act: str) -> bool:
    """`{% if request.user|may:"SIGN_SCHEDULE" %}`: whether to draw a key. The view behind it asks again."""
    return person_may(person, Act[act])
