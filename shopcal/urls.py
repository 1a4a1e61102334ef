"""Where everything is."""

from django.urls import URLPattern, URLResolver, include, path

from shopcal.health import healthz, metrics

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("metrics", metrics, name="metrics"),
    path("api/", include("shopcal.api.urls")),
    path("", include("shopcal.accounts.urls")),
    path("", include("shopcal.live.urls")),
    path("", include("bays.urls")),
    path("", include("jobs.urls")),
    path("", include("reports.urls")),
]
