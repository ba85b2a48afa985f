from django.urls import URLPattern

app_name = "dossier"
urlpatterns: list[URLPattern] = []
