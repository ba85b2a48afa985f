from django.urls import path, register_converter

from hullbook.yard import views
from hullbook.yard.enums import LimitName


class LimitNameConverter:
    regex = "|".join(name.value.replace(" ", "-") for name in LimitName)

    def to_python(self, value: str) -> str:
        return value.replace("-", " ")

    def to_url(self, value: str) -> str:
        return value.replace(" ", "-")


register_converter(LimitNameConverter, "limit")

app_name = "yard"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("yard/", views.yard, name="yard"),
    path("yard/name/", views.yard_named, name="yard-name"),
    path("yard/people/add/", views.person_add, name="person-add"),
    path("yard/people/role/", views.role_change, name="role-change"),
    path("yard/people/pin/", views.pin_give, name="pin-give"),
    path("yard/pin/", views.own_pin, name="own-pin"),
    path("yard/tablets/", views.tablets, name="tablets"),
    path("yard/tablets/enrol/", views.tablet_enrol, name="tablet-enrol"),
    path("yard/tablets/<str:code>/lift/", views.tablet_lift, name="tablet-lift"),
    path("tablet/state/", views.tablet_state, name="tablet-state"),
    path("tablet/waiting/", views.waiting, name="waiting"),
    path("tablet/who/", views.who, name="who"),
    path("tablet/light/", views.light, name="light"),
    path("tablet/crew/", views.strip, name="strip"),
    path("tablet/setting-up/", views.setting_up, name="setting-up"),
    path("yard/bays/add/", views.bay_add, name="bay-add"),
    path("yard/instruments/add/", views.instrument_add, name="instrument-add"),
    path("yard/instruments/<str:code>/calibration/", views.calibration_add, name="calibration-add"),
    path("yard/limits/<limit:name>/", views.limit_set, name="limit-set"),
    path("yard/climate/log/", views.climate_log, name="climate-log"),
    path("yard/climate/<str:code>/", views.climate, name="climate"),
]
