"""The trained network that looks at laid-out teeth, in ONNX. Made by `pattern.synthetic.flat_train`."""
