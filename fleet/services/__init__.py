"""The writers of utilisation and fitments; each function is one transaction."""

from fleet.services.fitments import fit_part, remove_part
from fleet.services.utilisation import correct_utilisation, enter_utilisation

__all__ = ["correct_utilisation", "enter_utilisation", "fit_part", "remove_part"]
