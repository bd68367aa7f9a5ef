"""Logging in, and what a person sees who tried too often."""

from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet import demo_logins


class LogIn(LoginView):
    """The log-in page; a demo shows its log-ins on it."""

    template_name = "registration/login.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"demo_logins": demo_logins.kept()}


log_in = LogIn.as_view()


@login_not_required
def locked_out(request: HttpRequest, *_original: object, **_credentials: object) -> HttpResponse:
    """The log-in page with the lock-out words (called by django-axes), status 429.

    Context: `form` without the password, `locked_out`, `lock_minutes` (whole minutes until a try counts
    again), `next`. The words are the same whether or not such a person exists.
    """
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    context = {
        "form": AuthenticationForm(request, initial={"username": request.POST.get("username", "")}),
        "locked_out": True,
        "lock_minutes": minutes,
        "next": request.POST.get("next", ""),
    }
    response = render(request, "registration/login.html", context, status=429)
    response["Retry-After"] = str(minutes * 60)
    return response
