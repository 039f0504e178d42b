"""The web server's entry: `gunicorn config.wsgi`."""

import gc
import os

from django.core.wsgi import get_wsgi_application

from config.statement_limits import limit_statements

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

application = get_wsgi_application()
limit_statements()
# What is loaded by now stays for the life of the process: no collection needs to go through it again.
gc.collect()
gc.freeze()
