from django.apps import AppConfig


class TraceConfig(AppConfig):
    name = "hullbook.trace"
