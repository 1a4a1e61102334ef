"""The API with a few routes more, only for these tests."""

from django.urls import include, path

from shopcal.api.routes import ShopRouter
from tests.shopcal.api.rows import Answering, Members, Refusing, Shops

router = ShopRouter()
router.register("shops", Shops, basename="shop")
router.register("members", Members, basename="member")

urlpatterns = [
    path("api/v1/", include(router.urls)),
    path("api/v1/refusing/", Refusing.as_view()),
    path("api/v1/undeclared/", Answering.as_view()),
    path("api/", include("shopcal.api.urls")),
]
