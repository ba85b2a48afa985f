from django.apps import AppConfig
from django.core.checks import Tags, register
from django.db.models.signals import post_migrate


class RecordsConfig(AppConfig):
    name = "hullbook.records"

    def ready(self) -> None:
        from hullbook.records import checks, guards

        post_migrate.connect(guards.put_guards_in_place, sender=self)
        register(checks.guards_are_in_place, Tags.database)
