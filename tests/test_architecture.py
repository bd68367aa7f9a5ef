"""The house rules, read from the source itself: imports one way, small files, nothing undeclared."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parents[1]
ROOMS = ("fleet", "checks", "reports")
VISIBLE = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "requirements.txt",
    "fleet",
    "checks",
    "reports",
    "tests",
    "fixtures",
}
# A room may import itself and what stands here, nothing else of ours.
MAY_IMPORT = {
    "fleet": {"fleet"},
    "checks": {"fleet", "checks"},
    "reports": {"fleet", "checks", "reports"},
}
ONE_PLACE_THAT_NAMES_ALL = {"fleet/urls.py", "fleet/settings.py"}
NOT_IN_THE_ENGINE = {"django", "pandas", "time", "os", "pathlib", "io", "sqlite3", "random", "subprocess"}
MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 60


def sources(*folders: str) -> list[Path]:
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def inside(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(), str(path))


def imports(tree: ast.Module, package: str) -> Iterator[str]:
    """Dotted names that the module imports, those inside functions included; relative ones resolved.

    `from a.b import c` gives `a.b` and `a.b.c`, because c may be a module.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, base]).rstrip(".")
            yield base
            yield from (f"{base}.{alias.name}" for alias in node.names)


def imported_by(path: Path) -> set[str]:
    return set(imports(parsed(path), inside(path.parent).replace("/", ".")))


def wrong_rooms(path: str, names: set[str]) -> set[str]:
    """Those of the names that a file at this path may not import."""
    allowed = MAY_IMPORT[path.split("/")[0]]
    return {name for name in names if name.split(".")[0] in set(ROOMS) - allowed}


def wrong_for_engine(names: set[str]) -> set[str]:
    return {
        name
        for name in names
        if name.split(".")[0] in NOT_IN_THE_ENGINE
        or (name.split(".")[0] in ROOMS and name != "checks" and not f"{name}.".startswith("checks.engine."))
    }


def wrong_for_models(names: set[str]) -> set[str]:
    return {
        name
        for name in names
        if re.search(r"^(fleet|checks|reports)\.(\w+\.)*(services|views|selectors)\b", name)
    }


@pytest.mark.parametrize("path", sources(*ROOMS), ids=inside)
def test_imports_run_one_way(path: Path) -> None:
    assert wrong_rooms(inside(path), imported_by(path)) == set()


def test_only_the_addresses_and_settings_name_all_rooms() -> None:
    """`include("checks.urls")` is a text, which no import rule sees."""
    naming = {
        inside(path)
        for path in sources("fleet")
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and re.fullmatch(r"(checks|reports)(\.urls)?", node.value)
    }
    assert naming == ONE_PLACE_THAT_NAMES_ALL


@pytest.mark.parametrize("path", sources("checks/engine"), ids=inside)
def test_engine_is_pure(path: Path) -> None:
    assert wrong_for_engine(imported_by(path)) == set()
    calls = {ast.unparse(node.func) for node in ast.walk(parsed(path)) if isinstance(node, ast.Call)}
    clock_or_file = {
        call for call in calls if call == "open" or re.search(r"\b(now|utcnow|today|time)$", call)
    }
    assert clock_or_file == set()


@pytest.mark.parametrize("path", sources("fleet/models", "checks/models"), ids=inside)
def test_models_know_no_services(path: Path) -> None:
    assert wrong_for_models(imported_by(path)) == set()


def test_the_rules_can_fail() -> None:
    """Each rule refuses an example that breaks it, written in more than one way."""
    tree = ast.parse("def f():\n    from reports.home import page\nimport checks.engine.due")
    names = set(imports(tree, "fleet"))
    assert wrong_rooms("fleet/context.py", names) == {
        "reports.home",
        "reports.home.page",
        "checks.engine.due",
    }
    assert wrong_rooms("checks/selectors.py", names) == {"reports.home", "reports.home.page"}
    assert wrong_rooms("reports/home.py", names) == set()
    assert set(imports(ast.parse("from ..models import event"), "checks.engine")) == {
        "checks.models",
        "checks.models.event",
    }
    assert wrong_for_engine(
        {"django.db", "checks.models", "numpy", "checks.engine.units", "fleet.models"}
    ) == {
        "django.db",
        "checks.models",
        "fleet.models",
    }
    assert wrong_for_models({"checks.services.sign", "checks.engine.due"}) == {"checks.services.sign"}


@pytest.mark.parametrize("path", sources(*ROOMS, "tests"), ids=inside)
def test_files_and_functions_stay_small(path: Path) -> None:
    if "migrations" in path.parts:  # written by Django
        return
    assert len(path.read_text().splitlines()) <= MOST_LINES_OF_A_FILE
    long = {
        f"{node.name} ({node.end_lineno - node.lineno + 1} lines)"
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.lineno + 1 > MOST_LINES_OF_A_FUNCTION
    }
    assert long == set()


@pytest.mark.parametrize("path", sources(*ROOMS), ids=inside)
def test_public_functions_are_typed(path: Path) -> None:
    """Everything callable from another module says what it gives back."""
    if "migrations" in path.parts:
        return
    bare = {
        node.name
        for node in parsed(path).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_") and node.returns is None
    }
    assert bare == set()


def tracked() -> list[str]:
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("not a git checkout: what belongs to the project is unknown")
    return done.stdout.splitlines()


def test_visible_top_level_is_as_agreed() -> None:
    top = {name.split("/")[0] for name in tracked()}
    assert {name for name in top if not name.startswith(".")} == VISIBLE


def test_every_test_folder_is_a_package() -> None:
    folders = {path.parent for path in sources("tests")}
    assert {inside(folder) for folder in folders if not (folder / "__init__.py").exists()} == set()


def test_every_setting_read_is_explained() -> None:
    tree = parsed(ROOT / "fleet/settings.py")
    read = {
        node.args[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and ast.unparse(node.func.value) == "env"
        and node.args
        and isinstance(node.args[0], ast.Constant)
        and isinstance(node.args[0].value, str)
    }
    assert {"DATABASE_URL", "SECRET_KEY", "ALLOWED_HOSTS"} <= read
    documents = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    assert {name for name in read if f"`{name}`" not in documents} == set()


def test_only_the_settings_read_the_environment() -> None:
    readers = {
        inside(path)
        for path in sources(*ROOMS)
        if re.search(r"\bos\.(environ\[|environ\.get|getenv)|\benviron\.get", path.read_text())
    }
    assert readers == {"fleet/environment.py"}


@pytest.mark.parametrize(
    "path", sorted(p for room in ROOMS for p in (ROOT / room).rglob("templates/**/*.html")), ids=inside
)
def test_templates_hold_nothing_inline(path: Path) -> None:
    """What the Content-Security-Policy would block, before a browser has to say so."""
    text = re.sub(r"{% comment %}.*?{% endcomment %}|{#.*?#}", "", path.read_text(), flags=re.S)
    assert re.findall(r"<style\b|\sstyle\s*=|\son[a-z]+\s*=\s*[\"']|javascript:|hx-on", text) == []
    assert [tag for tag in re.findall(r"<script\b[^>]*>", text) if "src=" not in tag] == []
    assert "|safe" not in text and "autoescape off" not in text


def test_readme_has_the_two_lines() -> None:
    fenced = re.findall(r"```sh\n(.*?)\n```", (ROOT / "README.md").read_text(), re.S)
    assert "sh .ci/environment && .venv/bin/python manage.py demo --serve" in fenced
    assert "sh .ci/environment tests && .venv/bin/python -m pytest -n auto" in fenced


def test_pins_carry_hashes_and_name_no_host() -> None:
    for name in ("requirements.txt", "tests/requirements.txt"):
        text = (ROOT / name).read_text()
        pins = re.findall(r"^[a-z0-9-]+==\S+.*?(?=^[a-z0-9]|\Z)", text, re.M | re.S)
        assert len(pins) > 10 and all("--hash=sha256:" in pin for pin in pins)
        assert "://" not in text and "index-url" not in text


@pytest.mark.django_db
def test_no_migration_is_missing() -> None:
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)


def test_starting_django_is_free_of_slow_packages() -> None:
    """pandas, scipy.stats and reportlab cost seconds; pages that don't need them must not pay."""
    slow = {"pandas", "scipy.stats", "reportlab", "openpyxl", "xlsxwriter"}
    code = "import django, sys; django.setup(); import fleet.urls; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        env={"DJANGO_SETTINGS_MODULE": "fleet.settings"},
    )
    assert done.returncode == 0, done.stderr
    assert "fleet.urls" in done.stdout.split()
    assert slow & set(done.stdout.split()) == set()
