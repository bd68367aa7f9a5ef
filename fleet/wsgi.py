"""Entry for the web server. It refuses to start on an unsafe configuration or database."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
application = get_wsgi_application()

# A web server runs none of Django's system checks by itself, so a server without fsync would
# go unnoticed until the first power cut.
from fleet.system_checks import refuse_unsafe_start  # noqa: E402  needs the app registry

refuse_unsafe_start()

# The trend is scored after each signature; the first one must not wait for this import.
import scipy.special  # noqa: E402, F401
