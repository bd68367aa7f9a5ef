"""One answer for a balancer or a timer: does the site reach its records?"""

from django.contrib.auth.decorators import login_not_required
from django.db import Error, connection
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@login_not_required
@never_cache
@require_safe
def health(request: HttpRequest) -> HttpResponse:
    """200 'ok' after one question to the database, 503 where it does not answer. Tells nothing else."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except Error:
        return HttpResponse("no database", status=503, content_type="text/plain")
    return HttpResponse("ok", content_type="text/plain")
