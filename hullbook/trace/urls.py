from django.urls import URLPattern

app_name = "trace"
urlpatterns: list[URLPattern] = []
