"""What tests need, the shop's own too: simulated benches, specimens under pytest, rigs, builders."""
