"""An invented farm with real physics. It knows only the wire: MQTT and HTTP."""
