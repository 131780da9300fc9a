"""The API's routes."""

urlpatterns = []
