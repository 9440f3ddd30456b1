app_name = "rain"

urlpatterns: list = []
