app_name = "sites"

urlpatterns: list = []
