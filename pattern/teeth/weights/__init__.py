"""Trained networks, in ONNX. Made by `pattern.synthetic.train`; see TRAINING.md there."""
