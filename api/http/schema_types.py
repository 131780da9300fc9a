"""What the descriptions of the API are made of."""

from typing import Any

SchemaObject = dict[str, Any]  # a part of the OpenAPI document; what may stand in it, OpenAPI 3.1 says
