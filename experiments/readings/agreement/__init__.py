"""How well two methods of measurement agree: limits of agreement, percentage error, trending, ISO 81060-2 criteria."""
