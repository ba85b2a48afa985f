from django.urls import path

from hullbook.inspection import views

app_name = "inspection"
part = "hulls/<str:number>/parts/<str:part>"
urlpatterns = [
    path("stages/", views.shed_stages_of_all, name="shed-stages"),
    path("hulls/<str:number>/stages/", views.stages, name="stages"),
    path("hulls/<str:number>/now/", views.now, name="now"),
    path("hulls/<str:number>/kept/", views.kept, name="kept"),
    path("hulls/<str:number>/missing/", views.missing, name="missing"),
    path("hulls/<str:number>/findings/", views.findings, name="findings"),
    path("hulls/<str:number>/findings/<int:entry>/decide/", views.decide, name="decide"),
    path("hulls/<str:number>/resin-used/", views.resin, name="resin"),
    path("hulls/<str:number>/resin-used.csv", views.resin_csv, name="resin-csv"),
    path(f"{part}/findings/log/", views.finding_log, name="finding-log"),
    path(f"{part}/findings/<int:entry>/correct/", views.finding_correct, name="finding-correct"),
    path(f"{part}/hardness/", views.hardness, name="hardness"),
    path(f"{part}/hardness/log/", views.hardness_log, name="hardness-log"),
    path(f"{part}/hardness/<int:entry>/correct/", views.hardness_correct, name="hardness-correct"),
    path(f"{part}/weights/", views.balance, name="balance"),
    path(f"{part}/weights/log/", views.weighing_log, name="weighing-log"),
    path(f"{part}/weights/<int:entry>/correct/", views.weighing_correct, name="weighing-correct"),
]
