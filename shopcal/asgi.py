"""The pages and the API, for an ASGI server. Live events have their own: ``shopcal.live``."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
application = get_asgi_application()

from shopcal.database import require_guards  # noqa: E402  needs the apps loaded

require_guards()
