"""The emptiest page with a slider and a text: what a rerun costs at the least on this machine."""

import streamlit as st

st.html(
    f'<p role="status">{st.slider("Pinion", -0.015, 0.015, 0.0, 0.001, format="%+.3f"):+.3f}</p>'
)
