from django.urls import URLPattern

app_name = "yard"
urlpatterns: list[URLPattern] = []
