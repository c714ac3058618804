"""Addresses of people."""

from django.contrib.auth import views as auth
from django.urls import path

from apps.people import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path("tokens/", api.Tokens.as_view(), name="api_tokens"),
    path("me/", api.Me.as_view(), name="api_me"),
    path("me/password/", api.MyPassword.as_view(), name="api_password"),
    path("farms/", api.Farms.as_view(), name="api_farms"),
    path("invitations/accept/", api.AcceptInvitation.as_view(), name="api_accept"),
    path(F, api.OneFarm.as_view(), name="api_farm"),
    path(F + "members/", api.Members.as_view(), name="api_members"),
    path(F + "members/<int:member>/", api.OneMember.as_view(), name="api_member"),
    path(F + "members/<int:member>/birth-date/", api.BirthDate.as_view(), name="api_birth_date"),
    path(F + "invitations/", api.Invitations.as_view(), name="api_invitations"),
    path(F + "invitations/<int:invitation>/withdraw/", api.WithdrawInvitation.as_view(), name="api_withdraw"),
    path(F + "tokens/", api.MyTokens.as_view(), name="api_my_tokens"),
    path(F + "tokens/<int:token>/revoke/", api.RevokeToken.as_view(), name="api_revoke_token"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path("log-in/", auth.LoginView.as_view(template_name="people/log_in.html"), name="log_in"),
    path("log-out/", auth.LogoutView.as_view(), name="log_out"),
    path("farms/", pages.Farms.as_view(), name="farms"),
    path("farms/new/", pages.OpenFarm.as_view(), name="open_farm"),
    path("join/<str:code>/", pages.Join.as_view(), name="join"),
    path(P + "people/", pages.People.as_view(), name="people"),
    path(P + "people/<int:member>/", pages.Place.as_view(), name="place"),
    path(P + "invitations/<int:invitation>/withdraw/", pages.WithdrawInvitation.as_view(), name="withdraw"),
    path(P + "settings/", pages.FarmSettings.as_view(), name="settings"),
    path(P + "me/", pages.Me.as_view(), name="me"),
    path(P + "me/password/", pages.Password.as_view(), name="password"),
    path(P + "me/keys/new/", pages.MakeToken.as_view(), name="make_token"),
    path(P + "me/keys/<int:token>/revoke/", pages.RevokeToken.as_view(), name="revoke_token"),
]
