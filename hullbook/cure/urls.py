from django.urls import path

from hullbook.cure import views

app_name = "cure"
urlpatterns = [
    path("parts/<str:part>/cure/", views.cure, name="cure"),
    path("parts/<str:part>/cure/reading/", views.reading_log, name="reading-log"),
    path("parts/<str:part>/cure/demould/", views.demould_log, name="demould-log"),
]
