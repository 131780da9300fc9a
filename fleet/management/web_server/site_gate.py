"""The gate of the site itself, loaded by each worker of the web server."""

from django.core.wsgi import get_wsgi_application

from fleet.management.web_server.gate import WholeRequestGate
from fleet.management.web_server.serve import LIMITS, THREADS, end_with_parent

end_with_parent()
gate = WholeRequestGate(get_wsgi_application(), LIMITS, THREADS)
