"""Two rules for every request: no oversized body, no private page kept by a shared browser."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

Handler = Callable[[HttpRequest], HttpResponse]


class BodyLimitMiddleware:
    """Refuse a request whose declared length is over MAX_BODY_BYTES before anything reads it.

    A body without a declared length is refused too (chunked), since its size is known only after
    it was read; browsers always declare it.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "chunked" in request.META.get("HTTP_TRANSFER_ENCODING", "").lower():
            return HttpResponse(
                "Send the request with a Content-Length.", status=411, content_type="text/plain"
            )
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not length.isascii() or not length.isdigit():
            return HttpResponse("Content-Length is not a number.", status=400, content_type="text/plain")
        if int(length) > settings.MAX_BODY_BYTES:
            most = settings.MAX_BODY_BYTES // 1024 // 1024
            words = f"Too large: at most {most} MB at once. Send the file in parts; nothing was saved."
            return HttpResponse(words, status=413, content_type="text/plain; charset=utf-8")
        return self.get_response(request)


class NoStoreMiddleware:
    """Pages for a person who is logged in are not kept by the browser: hangar tablets are shared."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            response["Cache-Control"] = "no-store, private"
        return response
