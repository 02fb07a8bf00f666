"""sensorswim: front-crawl technique measured with wrist and ankle inertial sensors."""

__version__ = "0.1.0"
