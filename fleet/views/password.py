"""A person's own password: what every signature rests on, so the person alone knows it."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.views import PasswordChangeView
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.urls import reverse_lazy

from fleet import tries

WRONG = "This is not your password. Type the one that you have now."
TOO_MANY = f"Too many wrong passwords: wait {tries.CLOSED_MINUTES} minutes, then try again."


class OwnPasswordForm(PasswordChangeForm):
    """The password as it is, and twice the new one."""

    def clean_old_password(self) -> str:
        if tries.are_used_up(self.user):
            raise ValidationError(TOO_MANY)
        typed = self.cleaned_data["old_password"]
        if not tries.is_own(self.user, typed):
            raise ValidationError(WRONG)
        return typed


class OwnPassword(PasswordChangeView):
    """Change it; other places where the person is logged in are logged out by it."""

    form_class = OwnPasswordForm
    template_name = "registration/own_password.html"
    success_url = reverse_lazy("reports:home")
    http_method_names = ["get", "head", "post"]  # the base view takes a PUT for a form that was posted

    def form_valid(self, form: OwnPasswordForm) -> HttpResponse:
        messages.success(self.request, "Your password is changed. Sign with the new one from now on.")
        return super().form_valid(form)

    def render_to_response(self, context: dict[str, Any], **kwargs: Any) -> HttpResponse:
        return super().render_to_response(context, status=422 if context["form"].errors else 200, **kwargs)


own_password = OwnPassword.as_view()
