"""What has been worked out and may be asked for again, kept by the scenario that it belongs to."""

from collections import OrderedDict
from threading import Lock
from uuid import uuid4

MEMORIES = 4  # of other processes' scenarios that this one keeps; one is worked on at a time [-]


class Cache:
    """Values by key, the latest used kept; any number of threads may ask at once.

    Parameters
    ----------
    bound : int
        Most values that are kept [-]
    """

    def __init__(self, bound):
        self.bound = bound
        self._values, self._lock = OrderedDict(), Lock()

    def __len__(self):
        return len(self._values)

    def get(self, key, make):
        """The value of a key, made when it is not there.

        Parameters
        ----------
        key : hashable
            What the value depends on
        make : callable
            Gives the value; runs outside the lock, so that nobody waits for another's work

        Returns
        -------
        value : any
            The same object for everybody who asks
        """
        return self.get_many([key], lambda _: [make()])[0]

    def get_many(self, keys, make):
        """Values of several keys, those that are not there made together.

        Parameters
        ----------
        keys : list of hashable
            What the values depend on
        make : callable
            Called with the positions in ``keys`` of what is missing; gives its values in order

        Returns
        -------
        values : list
            In the order of the keys; all of them are returned, even where the cache keeps fewer
        """
        with self._lock:
            found = {key: self._values[key] for key in keys if key in self._values}
        missing = [n for n, key in enumerate(keys) if key not in found]
        made = make(missing) if missing else []
        with self._lock:
            for n, value in zip(missing, made, strict=True):
                found[keys[n]] = self._values.setdefault(keys[n], value)
            for key in keys:
                self._values[key] = found[key]
                self._values.move_to_end(key)
            while len(self._values) > self.bound:
                self._values.popitem(last=False)
        return [found[key] for key in keys]


class Memory:
    """Caches by name. A scenario and everything made from it by a change share one.

    Copies in another process begin empty: what is kept can be worked out again. All copies of one
    memory are one there too, so that a worker that is handed variations of a school finds what it
    has worked out for the ones before.
    """

    def __init__(self):
        self._caches, self._lock = {}, Lock()
        self._name = uuid4().hex

    def __reduce__(self):
        return _copied, (self._name,)

    def cache(self, name, bound):
        """The cache of a name.

        Parameters
        ----------
        name : str
            What it keeps
        bound : int
            Most values that it keeps; of its first caller [-]

        Returns
        -------
        cache : Cache
            The same for every caller
        """
        with self._lock:
            return self._caches.setdefault(name, Cache(bound))


_COPIES = Cache(MEMORIES)


def _copied(name):
    """What stands here for a memory of another process."""
    return _COPIES.get(name, Memory)
