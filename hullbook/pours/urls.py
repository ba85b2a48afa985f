from django.urls import URLPattern

app_name = "pours"
urlpatterns: list[URLPattern] = []
