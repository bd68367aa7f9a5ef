"""Filling the forms of the set-up site as a browser would."""

from django.urls import reverse


def url(model, what: str, *args) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{what}", args=args)


def filled(response) -> dict[str, object]:
    """The form of a page as a browser would send it unchanged, its rows of inlines included."""
    forms = [response.context["adminform"].form]
    data: dict[str, object] = {}
    for inline in response.context["inline_admin_formsets"]:
        forms += [inline.formset.management_form, *inline.formset.forms]
    for form in forms:
        for bound in form:
            if bound.field.disabled or getattr(bound.field.widget, "input_type", "") == "file":
                continue
            value = bound.value()
            if value is None or value is False:
                continue
            data[bound.html_name] = value
    return data


def add_row(data: dict, prefix: str, **values) -> dict:
    """One more row of the inline, after those there."""
    number = int(data[f"{prefix}-TOTAL_FORMS"])
    row = {f"{prefix}-{number}-{name}": value for name, value in values.items()}
    return data | row | {f"{prefix}-TOTAL_FORMS": number + 1}
