"""The pages."""

urlpatterns = []
