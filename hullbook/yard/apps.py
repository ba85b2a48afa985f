from django.apps import AppConfig


class YardConfig(AppConfig):
    name = "hullbook.yard"
