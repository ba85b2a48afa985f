from django.apps import AppConfig


class CureConfig(AppConfig):
    name = "hullbook.cure"
