"""Results as text, drawings and documents: values in, text or pixels out."""
