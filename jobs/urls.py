"""Pages of this app."""

from django.urls import URLPattern, URLResolver, include, path, re_path

from jobs.pages import (
    booking,
    day,
    floor_map,
    floor_print,
    ground,
    helping,
    place_it,
    proposals,
    visit,
    visit_acts,
    what_if,
)

urlpatterns: list[URLPattern | URLResolver] = [
    path("", day.day, name="day"),
    path("day/panel/", day.day_panel, name="day-panel"),
    path("day/reasons/", day.day_reasons, name="day-reasons"),
    path("day/plan-again/", day.plan_again, name="plan-again"),
    re_path(
        r"^day/(?P<kind>technician-out|unit-out|zone-closed)/$", day.disruption, name="disruption"
    ),
    path("day/proposals/<int:proposal_id>/", proposals.proposal, name="proposal"),
    path(
        "day/proposals/<int:proposal_id>/goes-with/", proposals.goes_with, name="proposal-goes-with"
    ),
    re_path(
        r"^day/proposals/(?P<proposal_id>\d+)/(?P<act>accept|decline|take-back)/$",
        proposals.decide,
        name="proposal-act",
    ),
    path("floor/", floor_map.floor_map, name="floor-map"),
    path("floor/panel/", floor_map.floor_panel, name="floor-panel"),
    path("floor/print/", floor_print.floor_print, name="floor-print"),
    path("floor/place/", place_it.place_it, name="place-it"),
    path("floor/place/panel/", place_it.place_panel, name="place-it-panel"),
    path("floor/place/options/", place_it.place_options, name="place-it-options"),
    path("setup/surveys/ground/", ground.ground, name="ground-table"),
    path("book/", booking.book, name="book"),
    path("book/offers/", booking.offers, name="book-offers"),
    path("book/bays/", booking.bays, name="book-bays"),
    path("book/urgent/", booking.urgent, name="book-urgent"),
    path("visits/<int:visit_id>/", visit.visit, name="visit-detail"),
    path("visits/<int:visit_id>/panel/", visit.visit_panel, name="visit-panel"),
    path("visits/<int:visit_id>/details/", visit.visit_details, name="visit-details"),
    path("visits/<int:visit_id>/override/", visit.visit_override, name="visit-override"),
    path("visits/<int:visit_id>/help/", helping.visit_help, name="visit-help"),
    path("visits/<int:visit_id>/help/ask/", helping.ask_help, name="ask-help"),
    path("visits/<int:visit_id>/help/<int:study_id>/stop/", helping.stop_help, name="stop-help"),
    path("what-if/", what_if.what_if, name="what-if"),
    path("what-if/<int:study_id>/", what_if.what_if_answer, name="what-if-answer"),
    path("what-if/<int:study_id>/stop/", what_if.stop_what_if, name="stop-what-if"),
    path("visits/<int:visit_id>/confirm/", visit.visit_confirm, name="visit-confirm"),
    path("visits/<int:visit_id>/steps/<int:step_id>/pin/", visit.visit_pin, name="visit-pin"),
    path("visits/<int:visit_id>/steps/<int:step_id>/wait/", visit.visit_wait, name="visit-wait"),
    re_path(
        rf"^visits/(?P<visit_id>\d+)/(?P<act>{'|'.join(visit_acts.BY_NAME)})/$",
        visit.visit_act,
        name="visit-act",
    ),
    path("", include("jobs.pages.work.urls")),
]
