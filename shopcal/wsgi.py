"""The pages and the API, for a WSGI server."""

import os
import threading

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
application = get_wsgi_application()

from django.conf import settings  # noqa: E402
from django.utils.module_loading import import_string  # noqa: E402

from shopcal.database import require_guards  # noqa: E402  needs the apps loaded

require_guards()

for name in settings.WARM_ON_START:
    threading.Thread(target=import_string(name), name=name, daemon=True).start()
