"""Will it release, can cloth be pressed in: findings only."""
