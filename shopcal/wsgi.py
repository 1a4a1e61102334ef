"""The pages and the API, for a WSGI server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
application = get_wsgi_application()

from shopcal.database import require_guards  # noqa: E402  needs the apps loaded

require_guards()
