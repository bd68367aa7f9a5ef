"""Wrong passwords of a person who is logged in already, when signing or changing the password.

They do not go through the log-in backends: those would count a slip of the finger as a failed log-in, and
lock a person out of the work at hand. They are counted in the cache of this process: a row would be taken
back with the transaction that is being refused.
"""

from django.core.cache import cache

from fleet.models import User

#: So many wrong ones in a row, and no password is looked at for so many minutes from the last.
TRIES, CLOSED_MINUTES = 5, 5


def are_used_up(person: User) -> bool:
    return cache.get(_key(person), 0) >= TRIES


def is_own(person: User, password: str) -> bool:
    """Whether it is the person's own password; a wrong one counts, a right one ends the count."""
    if person.is_active and person.check_password(password):
        cache.delete(_key(person))
        return True
    cache.add(_key(person), 0)
    cache.incr(_key(person))
    cache.touch(_key(person), CLOSED_MINUTES * 60)
    return False


def _key(person: User) -> str:
    return f"password-tries-{person.pk}"
