from django import template
from django.utils.safestring import SafeString, mark_safe

from hullbook.drawings.scene import Scene, to_svg

register = template.Library()


@register.simple_tag
def drawing(scene: Scene) -> SafeString:
    """`{% drawing scene %}`: to_svg escapes every word it is given."""
    return mark_safe(to_svg(scene))  # noqa: S308
