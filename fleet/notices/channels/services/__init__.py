"""SMS, telephone chat and other services, by a notification library and the operator's own addresses."""
