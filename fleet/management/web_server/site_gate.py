"""The gate of the site itself, loaded by each worker of the web server."""

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

from fleet.management.web_server.gate import WholeRequestGate
from fleet.management.web_server.serve import LIMITS, THREADS, end_with_parent

end_with_parent()
gate = WholeRequestGate(get_wsgi_application(), LIMITS, THREADS)
# Imported before the first request comes, which else would wait seconds for all pages and endpoints.
get_resolver().url_patterns  # noqa: B018
