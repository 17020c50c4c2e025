"""The rows of protection and alarms as data: what each watches, does and says."""
