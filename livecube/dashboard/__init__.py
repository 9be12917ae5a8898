"""What a home dashboard is told over MQTT: topics, messages, discovery; a listener too."""
