"""Reading photos, folders of photos, and the sheet that describes them."""
