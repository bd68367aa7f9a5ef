"""The drawing of what a remark marks on a panel."""

from django import template
from django.utils.safestring import SafeString

from checks.charts.outline import outline_svg
from checks.engine.areas import split

register = template.Library()


@register.simple_tag
def outline(remark: str, where: object) -> SafeString | str:
    """The panel's outline with the areas that the remark begins with; nothing where it begins with none."""
    areas, _ = split(remark)
    return outline_svg(areas, str(where)) if areas else ""
