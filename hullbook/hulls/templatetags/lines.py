from typing import Any

from django import template

from hullbook.drawings.scene import Scene
from hullbook.drawings.sheer import sheer_line
from hullbook.hulls.models import BoatModel, Hull, Part, ScheduleRevision
from hullbook.hulls.selectors import lines_of_models

register = template.Library()


@register.inclusion_tag("includes/_sheer.svg", takes_context=True)
def sheer(context: template.Context) -> dict[str, Scene | None]:
    """The rule under the head of the page: the sheer of the boat that the page is about, where its lines are given."""
    model = _model_of(context)
    lines = lines_of_models([model]).get(model) if model is not None else None
    return {"scene": sheer_line(lines) if lines is not None else None}


def _model_of(context: template.Context) -> int | None:
    for name in ("hull", "part", "revision", "boat_model"):
        found: Any = context.get(name)
        match found:
            case Hull() | ScheduleRevision():
                return found.boat_model_id
            case Part():
                return found.hull.boat_model_id
            case BoatModel():
                return found.pk
    return None
