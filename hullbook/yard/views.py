from django.http import HttpRequest

from hullbook.yard.selectors import yard_in_force


def yard_name(request: HttpRequest) -> dict[str, object]:
    yard = yard_in_force()
    return {"yard_name": yard.name if yard else "hullbook", "yard_is_invented": bool(yard and yard.is_invented)}
