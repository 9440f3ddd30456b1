app_name = "care"

urlpatterns: list = []
