"""What is judged apart from the amps: each part good, bad or not checked, with its findings."""
