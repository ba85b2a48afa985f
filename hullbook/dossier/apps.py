from django.apps import AppConfig


class DossierConfig(AppConfig):
    name = "hullbook.dossier"
