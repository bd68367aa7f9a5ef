"""Set-up of the registry's master data."""

from django.contrib import admin
from django.contrib.auth.models import Group

from fleet.admin import aircraft, instruments, operator, people, variants

__all__ = ["aircraft", "instruments", "operator", "people", "variants"]

# Roles are made by migrations, so that what a role may do is the same everywhere.
admin.site.unregister(Group)
