"""Functional mock-up units: controller, plant or loop for whoever couples models by the open standard FMI 3.0."""
