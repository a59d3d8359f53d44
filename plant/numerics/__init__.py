"""How states are advanced, laid out and made repeatable: integration, lanes, noise, elementary functions."""
