"""Every column that can hold something of a person, and what becomes of it when their data are erased.

A new foreign key to a person, household or log-in, and a new free text, has to be entered here: wiped, scrubbed, or kept and why.
"""

WIPED = "wiped: the row goes, or the field is emptied"
SCRUBBED = "their names and own addresses give way to the pseudonym"
POINTS = "points to the pseudonym, so that the fact stays"
NOTHING = "a code, a number, a file's name or the program's own words: nothing of a person"
SIGNED = "kept: signed, byte for byte"
PLACE = "kept: the place, not who lives there"
RECORD = "kept: how the program decided, on record"
RAIN = "kept: rain as it was handed in"

_STATE = {"was": NOTHING, "became": NOTHING, "by": POINTS}
_EVENT = _STATE | {"why": SCRUBBED}
_BY = {"by": POINTS}

INVENTORY: dict[str, dict[str, str]] = {
    "outbox.Message": {
        "key": NOTHING,
        "to_name": WIPED,
        "to_address": WIPED,
        "language": NOTHING,
        "template": NOTHING,
        "context": WIPED,
        "subject": WIPED,
        "text": WIPED,
        "html": WIPED,
        "secret": WIPED,
        "rfc_message_id": NOTHING,
        "error": WIPED,
        "error_code": NOTHING,
    },
    "outbox.EnclosedFile": {"sha256": NOTHING, "content_type": NOTHING, "content": WIPED},
    "outbox.Enclosure": {"name": NOTHING},
    "outbox.MessageEvent": _STATE | {"why": WIPED},
    "outbox.OptOut": {"address": WIPED},
    "people.Agency": {"code": NOTHING, "name": NOTHING},
    "people.Household": {"name": WIPED, "address": WIPED, "merged_into": WIPED},
    "people.Person": {
        "given_name": WIPED,
        "family_name": WIPED,
        "household": WIPED,
        "agency_office": WIPED,
        "note": WIPED,
        "merged_into": POINTS,
    },
    "people.PersonEvent": _STATE | {"why": WIPED, "person": POINTS},
    "people.ContactPoint_people": {"person": WIPED},
    "people.ContactPoint": {
        "value": WIPED,
        "normal": WIPED,
        "dead_why": WIPED,
        "people": WIPED,
    },
    "people.Volunteer": {"person": POINTS, "near": WIPED},
    "people.User_groups": {"user": POINTS},
    "people.User_user_permissions": {"user": POINTS},
    "people.User": {"password": WIPED, "email": WIPED, "name": WIPED, "person": POINTS},
    "people.Membership": {"user": WIPED},
    "people.Program": dict.fromkeys(
        ["name", "town", "zone", "phone", "email", "postal_address"], NOTHING
    ),
    "people.Organisation": {"name": NOTHING, "postal_address": NOTHING},
    "people.OrganisationContact": {"person": POINTS},
    "people.Agent": {"principal": POINTS, "agent": POINTS, "authority": WIPED},
    "people.OfficeChange_moved": {"person": POINTS},
    "people.OfficeChange_left": {"person": POINTS},
    "people.OfficeChange": {
        "office": NOTHING,
        "new_office": NOTHING,
        "why": RECORD,
        "entered_by": POINTS,
        "moved": POINTS,
        "left": POINTS,
    },
    "people.Merge": {"words": SCRUBBED, "moved": WIPED, "undone_by": POINTS} | _BY,
    "people.PersonExternalId": {"kept_by": WIPED, "value": WIPED, "person": WIPED},
    "sites.Site": {"code": NOTHING, "street": PLACE, "address": PLACE},
    "sites.SiteEvent": _EVENT,
    "sites.Parcel": {"number": PLACE, "county": PLACE},
    "sites.SiteExternalId": {"kept_by": PLACE, "value": PLACE},
    "sites.Basin": {"label": NOTHING, "typed": NOTHING},
    "sites.Inlet": {"typed": NOTHING},
    "sites.SedimentTrap": {"typed": NOTHING},
    "sites.Planting": {"species": NOTHING},
    "rain.RainRule": {"source": NOTHING, "withdrawn_by": POINTS} | _BY,
    "rain.Gauge_readers": {"person": WIPED},
    "rain.Gauge": {"code": NOTHING, "name": PLACE, "readers": WIPED},
    "rain.GaugePlace": {"note": PLACE},
    "rain.GaugeToken": {"made_by": POINTS, "digest": NOTHING, "label": NOTHING},
    "rain.ReaderLink": {"made_by": POINTS, "person": POINTS, "digest": NOTHING},
    "rain.GaugeEvent": _EVENT,
    "rain.GaugeOutage": {"why": RECORD},
    "rain.ReadingFile": dict.fromkeys(["name", "sha256", "wishes", "found", "refusal"], RAIN) | _BY,
    "rain.ReadingFilePart": {"content": RAIN},
    "rain.ReadingFileEvent": _STATE | {"why": RECORD},
    "rain.FrequencyTable": dict.fromkeys(["name", "source", "table", "text"], NOTHING)
    | {"ended_by": POINTS}
    | _BY,
    "rain.ReadingBatch": {
        "file_name": RAIN,
        "sha256": NOTHING,
        "understood": RAIN,
        "by_person": POINTS,
        "undone_by": POINTS,
        "undone_why": RECORD,
    }
    | _BY,
    "rain.RejectedRow": {"text": RAIN, "why": NOTHING},
    "rain.Reading": {"typed": RAIN},
    "rain.ReadingCorrection": {"was_typed": RAIN},
    "rain.StormRevision": {"why": RECORD} | _BY,
    "rain.StormSearch": {"why": RECORD} | _BY,
    "rain.SiteRain": {"sources": NOTHING, "left_out": NOTHING},
    "rain.DeclaredRain": {"typed": RAIN, "reason": RECORD, "withdrawn_by": POINTS} | _BY,
    "rain.Suspicion": {"facts": NOTHING, "set_aside_by": POINTS, "set_aside_note": RECORD},
    "agreements.Wording": {
        "title": NOTHING,
        "summary": NOTHING,
        "body": NOTHING,
        "reviewed_by": RECORD,
        "made_by": POINTS,
    },
    "agreements.Agreement": {"reference": NOTHING, "ended_why": SCRUBBED},
    "agreements.AgreementEvent": _EVENT,
    "agreements.AgreementExternalId": {"kept_by": NOTHING, "value": NOTHING},
    "agreements.Requirement": {"words": SCRUBBED, "number": NOTHING},
    "agreements.Pause": {
        "person": POINTS,
        "cover": POINTS,
        "why": WIPED,
        "entered_by": POINTS,
    },
    "agreements.Dispute": {
        "person": POINTS,
        "claim": WIPED,
        "answer": SCRUBBED,
        "outcome": SCRUBBED,
        "entered_by": POINTS,
    },
    "agreements.RestorationClaim": {"against": RECORD, "what": RECORD, "outcome": RECORD},
    "agreements.ListFile": {
        "name": NOTHING,
        "kept_by": NOTHING,
        "day_order": NOTHING,
        # only while a list waits to be taken in or left
        "content": RECORD,
        "sha256": NOTHING,
        "found": SCRUBBED,
    }
    | _BY,
    "agreements.Responsibility": {"person": POINTS, "part": PLACE, "ended_why": SCRUBBED},
    "agreements.Party": {
        "person": POINTS,
        "part": PLACE,
        "signs_by": POINTS,
        "declined_why": WIPED,
    },
    "agreements.Document": {
        "file_name": NOTHING,
        "content_type": NOTHING,
        "content": SIGNED,
        "sha256": NOTHING,
        "sheet": SIGNED,
        "works_sha256": NOTHING,
        "made_by": POINTS,
    },
    "agreements.Signature": {
        "typed_name": SIGNED,
        "zone": NOTHING,
        "consent": SIGNED,
        "agent": POINTS,
        "authority": SIGNED,
        "original_kept_at": NOTHING,
        "recorded_by": POINTS,
    },
    "agreements.SigningLink": {"digest": NOTHING, "made_by": POINTS},
    "agreements.Acknowledgement": {"how": NOTHING, "recorded_by": POINTS},
    "care.CareRule": {"source": NOTHING},
    "care.Duty": {"reason": WIPED},
    "care.DutyEvent": _EVENT,
    "care.Reminder": {"person": POINTS, "agent": POINTS},
    "care.Answer": {"person": POINTS, "agent": POINTS, "note": WIPED},
    "care.FlowReport": {
        "note": WIPED,
        "person": POINTS,
        "told_by": SCRUBBED,
        "decided_by": POINTS,
        "why": SCRUBBED,
    }
    | _BY,
    "care.ContactCheck": {
        "person": POINTS,
        "note": WIPED,
        "outcome": WIPED,
        "closed_by": POINTS,
    },
    "care.RainQuestion": {"decided_by": POINTS, "note": SCRUBBED},
    "care.Visit": {"done_by": POINTS, "entered_by": POINTS, "note": WIPED},
    "care.Finding": {"note": WIPED},
    "reports.Report": {
        "figures": NOTHING,
        "content": NOTHING,
        "sha256": NOTHING,
        "error": NOTHING,
        "requested_by": POINTS,
    },
    "reports.ReportEvent": _STATE | {"why": RECORD},
    "account.EmailAddress": {"user": WIPED, "email": WIPED},
    "account.EmailConfirmation": {"key": WIPED},
    "mfa.Authenticator": {"user": WIPED, "data": WIPED},
    "admin.LogEntry": {
        "user": POINTS,
        "object_id": NOTHING,
        "object_repr": SCRUBBED,
        "change_message": SCRUBBED,
    },
    "auth.Permission": {"name": NOTHING, "codename": NOTHING},
    "auth.Group": {"name": NOTHING},
    "contenttypes.ContentType": {"app_label": NOTHING, "model": NOTHING},
    "sessions.Session": {"session_key": NOTHING, "session_data": NOTHING},
}
