from django.urls import URLPattern

app_name = "hulls"
urlpatterns: list[URLPattern] = []
