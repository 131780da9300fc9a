"""How values stand in the shared cache: as JSON, so that what another account writes there is never run."""

import json


class JsonCacheSerializer:
    """The serializer that Django's cache is given in place of its own, which unpickles."""

    def dumps(self, value: object) -> int | bytes:
        """Return `value` as JSON. A whole number is left as it is, so that the server can count it up."""
        return value if type(value) is int else json.dumps(value).encode()

    def loads(self, data: bytes) -> object:
        """Return the value. Raises ValueError for anything that is not JSON."""
        try:
            return json.loads(data)
        except (ValueError, RecursionError) as error:
            raise ValueError("A value in the cache is not JSON.") from error
