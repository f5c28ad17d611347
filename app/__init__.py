"""The page: Streamlit screens that call the library and hold no logic of their own."""
