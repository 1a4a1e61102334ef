"""What every endpoint of the API shares: refusals, idempotency keys, versions, pages, description.

An app puts its endpoints in ``<app>/api/`` and its routes in ``<app>/api/urls.py``::

    class Visits(ListRows, ReadRow, ShopViewSet):
        queryset = Visit.objects.select_related("vehicle")  # narrowed to the actor's shop
        serializer_class = VisitOut
        filterset_class = VisitFilter  # names not in it are refused
        ordering = ("-booked_at", "-id")  # the first is never null
        detail_route = "api:visit-detail"
        actions = {  # what is not in here is refused
            "list": Action.SEE_VISIT, "retrieve": Action.SEE_VISIT, "create": Action.BOOK_VISIT,
            "partial_update": Action.CHANGE_VISIT, "check_in": Action.CHECK_IN,
        }

        @extend_schema(request=BookingIn, responses={201: VisitOut})
        @idempotent
        def create(self, request: Request) -> Response:
            return self.created(book_visit(**self.read(BookingIn), by=self.actor))

        @extend_schema(request=VisitChangeIn, responses=VisitOut)
        @versioned  # finds the row and compares If-Match; the service compares again as it writes
        def partial_update(self, request: Request, visit: Visit, version: int) -> Response:
            given = self.read(VisitChangeIn, partial=True)
            return self.shown(change_visit(visit=visit, version=version, **given, by=self.actor))

        @extend_schema(request=None, responses=VisitOut)
        @action(detail=True, methods=["post"], url_path="check-in")
        @idempotent
        @versioned
        def check_in(self, request: Request, visit: Visit, version: int) -> Response:
            return self.shown(check_in(visit=visit, version=version, by=self.actor))

    router = ShopRouter()  # in <app>/api/urls.py
    router.register("visits", Visits, basename="visit")
    urlpatterns = router.urls

A service refuses by raising from ``shopcal.errors``; endpoints catch nothing. A code of the app
is explained once beside the routes: ``describe("no_room", 409, "There is no room.", "…")``.

This module imports nothing, for the settings read ``shopcal.api.conf``.
"""
