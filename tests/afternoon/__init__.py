"""An afternoon of a house with several hosts, in minutes: two web servers, three workers, a scheduler, an
object store, six owners, and what goes wrong in turn. Everything on the loopback. ``make afternoon``."""
