from django.apps import AppConfig


class PoursConfig(AppConfig):
    name = "hullbook.pours"
