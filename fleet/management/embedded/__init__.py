"""Starts and stops the servers an installation needs, and nothing it did not start itself.

`site.run` is behind `manage.py demo` and `up`; `temporary` gives tests servers of their own; `fit` judges given ones.
"""

from fleet.management.embedded.temporary import Servers, temporary
from fleet.management.embedded.trouble import Trouble

__all__ = ["Servers", "Trouble", "temporary"]
