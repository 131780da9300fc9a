"""Starts and stops the servers an installation needs. It never stops what it did not start itself.

`site.run_site` runs `manage.py demo` and `up`. `temporary` gives tests their own servers. `server_checks`
checks servers that the environment names.
"""

from fleet.management.embedded.machine_errors import MachineError
from fleet.management.embedded.temporary import TemporaryServers, temporary

__all__ = ["MachineError", "TemporaryServers", "temporary"]
