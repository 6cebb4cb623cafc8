"""Real processes, real faults, chosen by a seed: every accepted part ends as it would have undisturbed, or
with a true reason. ``make faults`` runs many; the service's tests run a few."""
