"""The description of the service, for programs and for people."""
