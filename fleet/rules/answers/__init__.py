"""What is answered from a timeline: readiness, conditions, the proof glass, heat."""
