"""Publishing to a home dashboard over MQTT: topics, messages, discovery; a listener too."""
