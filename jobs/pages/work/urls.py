"""Pages at the vehicle."""

from django.urls import path

from jobs.pages.work.mine import my_work
from jobs.pages.work.visit import work_act, work_reading, work_visit

urlpatterns = [
    path("work/", my_work, name="my-work"),
    path("work/<int:visit_id>/", work_visit, name="work-visit"),
    path("work/<int:visit_id>/reading/", work_reading, name="work-reading"),
    path("work/<int:visit_id>/<slug:act>/", work_act, name="work-act"),
]
