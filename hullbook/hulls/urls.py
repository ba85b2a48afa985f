from django.urls import path

from hullbook.hulls import views

app_name = "hulls"
urlpatterns = [
    path("", views.shed, name="shed"),
    path("shed-plan/", views.shed_places, name="shed-places"),
    path("shed-plan/place/", views.shed_place, name="shed-place"),
    path("hulls/", views.hull_list, name="hull-list"),
    path("hulls/lay-down/", views.hull_lay_down, name="hull-lay-down"),
    path("hulls/<str:number>/", views.hull, name="hull"),
    path("hulls/<str:number>/craft-number/", views.craft_number_give, name="craft-number-give"),
    path("hulls/<str:number>/craft-number/correct/", views.craft_number_correct, name="craft-number-correct"),
    path("hulls/<str:number>/hold-points/", views.hold_points, name="hold-points"),
    path("hulls/<str:number>/hold-points/<int:no>/", views.hold_point_release, name="hold-point-release"),
    path("hulls/<str:number>/leave/", views.yard_leave, name="yard-leave"),
    path("hulls/<str:number>/entries/", views.entries, name="entries"),
    path("hulls/<str:number>/entries/<int:no>/strike-out/", views.strike_out, name="strike-out"),
    path("hulls/<str:number>/entries/<int:no>/correct/", views.entry_correct, name="entry-correct"),
    path("hulls/<str:number>/photos/<int:no>/", views.photo, name="photo"),
    path("photos/<str:digest>/", views.photo_pieces, name="photo-pieces"),
    path("photos/<str:digest>/log/", views.photo_log, name="photo-log"),
    path("hulls/<str:number>/parts/<str:part>/paper-sheets/", views.paper_sheets, name="paper-sheets"),
    path("hulls/<str:number>/paper-sheets/<int:no>/", views.paper_sheet, name="paper-sheet"),
    path("photos/<str:digest>/<int:piece>/", views.photo_piece, name="photo-piece"),
    path("hulls/<str:number>/parts/<str:part>/revision/", views.revision_take, name="revision-take"),
    path("hulls/<str:number>/parts/<str:part>/lay-up/", views.lay_up, name="lay-up"),
    path("hulls/<str:number>/parts/<str:part>/lay-up/log/", views.laying_log, name="laying-log"),
    path("hulls/<str:number>/parts/<str:part>/lay-up/<int:no>/correct/", views.laying_correct, name="laying-correct"),
    path("models/", views.boat_models, name="boat-models"),
    path("models/<str:name>/lines/", views.lines, name="lines"),
    path("models/<str:name>/lines/take-in/", views.lines_take_in, name="lines-take-in"),
    path("models/<str:name>/lines.csv", views.lines_csv, name="lines-csv"),
    path("models/<str:name>/schedules/", views.schedules, name="schedules"),
    path("models/<str:name>/schedules/begin/", views.revision_begin, name="revision-begin"),
    path("models/<str:name>/schedules/<str:part>/<str:letter>/", views.schedule, name="schedule"),
    path("models/<str:name>/schedules/<str:part>/<str:letter>/write/", views.schedule_write, name="schedule-write"),
    path(
        "models/<str:name>/schedules/<str:part>/<str:letter>/take-in/", views.schedule_take_in, name="schedule-take-in"
    ),
    path("models/<str:name>/schedules/<str:part>/<str:letter>/csv/", views.schedule_csv, name="schedule-csv"),
    path("models/<str:name>/schedules/<str:part>/<str:letter>/sign/", views.schedule_sign, name="schedule-sign"),
    path(
        "models/<str:name>/schedules/<str:part>/<str:letter>/against/<str:earlier>/",
        views.difference,
        name="difference",
    ),
    path("add-model/", views.boat_model_add, name="boat-model-add"),
]
