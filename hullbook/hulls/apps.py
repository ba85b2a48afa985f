from django.apps import AppConfig


class HullsConfig(AppConfig):
    name = "hullbook.hulls"
