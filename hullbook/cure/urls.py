from django.urls import URLPattern

app_name = "cure"
urlpatterns: list[URLPattern] = []
