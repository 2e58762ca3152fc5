"""What the site's rule asks of the commits behind an approval, rule by rule."""

from dataclasses import replace

import pytest
from small_site import ledger_of

from ledger.model.policy import CommitMaker, GitProof, Policy, Vouchers, owner_of, prove
from ledger.model.site import ApprovalProof, Person

DAG = Person(ident="dag", name="Dag Varrick", roles=("lead",), emails=("dag@example.org",))
MIRA = Person(ident="mira", name="Mira Osterby", roles=("lead",), emails=("mira@example.org",))
PEOPLE = {"dag": DAG, "mira": MIRA, "eva": Person(ident="eva", name="Eva Renner", roles=("lead",))}

OWN = {"signature": "signed with a key of dag", "signer": "dag"}
HERS = {"signature": "signed with a key of mira", "signer": "mira"}
UNKNOWN = {"signature": "signed with a key that nobody had"}
NOT_HERE = {"signature": "an OpenPGP signature"}
BAD = {"signature": "the signature does not fit the commit", "is_forged": True}


def proven(approver, rule, people, makers, *statements):
    policy = Policy(approval_proof=ApprovalProof(rule))
    site = replace(ledger_of([]).site, people=people, policy=policy)
    return prove(approver, site, Vouchers(commits=tuple(makers), statements=statements))


def made(author="dag@example.org", committer=None, signature=None, *, is_merge=False):
    return CommitMaker(
        oid="a" * 40,
        author=author,
        committer=committer or author,
        is_merge=is_merge,
        **(signature or {}),
    )


@pytest.mark.parametrize(
    ("rule", "maker", "held", "said"),
    [
        ("file", made("mira@example.org"), True, "no commit is required"),
        ("commit", made(), True, "commit aaaaaaaaaa by dag@example.org"),
        ("commit", made(is_merge=True), True, "merge aaaaaaaaaa by dag@example.org"),
        ("commit", made("mira@example.org"), False, "not an address of Dag Varrick"),
        ("commit", made(committer="mira@example.org"), False, "but committed by Mira Osterby"),
        ("commit", made(committer="noreply@host.example"), True, "by dag@example.org"),
        ("commit", made(signature=UNKNOWN), True, "by dag@example.org"),
        ("commit", made(signature=BAD), False, "does not fit"),
        ("commit", made(signature=OWN), True, "by dag@example.org"),
        ("commit", made(signature=HERS), False, "signed with a key of mira"),
        ("signed-commit", made(), False, "carries no signature"),
        ("signed-commit", made(signature=OWN), True, "key of dag; the signature was verified"),
        ("signed-commit", made("mira@example.org", signature=HERS), False, "not an address"),
        ("signed-commit", made(signature=HERS), False, "signed with a key of mira"),
        ("signed-commit", made(signature=UNKNOWN), False, "was not verified: signed with a key"),
        ("signed-commit", made(signature=NOT_HERE), False, "was not verified: an OpenPGP"),
        ("signed-commit", made(signature=BAD), False, "does not fit the commit"),
    ],
)
def test_one_commit_held_against_a_rule(rule, maker, held, said):
    proof = proven("dag", rule, PEOPLE, [maker])
    assert proof.held is held
    assert said in proof.words


def test_one_of_several_commits_is_enough():
    makers = [made("mira@example.org"), made(is_merge=True)]
    assert proven("dag", ApprovalProof.COMMIT, PEOPLE, makers).held


@pytest.mark.parametrize(
    ("approver", "said"),
    [
        ("eva", "the people file has no address of Eva Renner"),
        ("otto", "otto is not in the people file"),
    ],
)
def test_an_approver_whom_no_commit_can_bear_out(approver, said):
    proof = proven(approver, ApprovalProof.COMMIT, PEOPLE, [made()])
    assert (proof.held, proof.words) == (False, said)


def test_nothing_wrote_the_approval():
    assert not proven("dag", ApprovalProof.COMMIT, PEOPLE, []).held


SIGNED = GitProof(held=True, words="approvals/a.yaml, signed with a key of dag")
FORGED = GitProof(held=False, words="approvals/a.yaml, the signature does not fit")


@pytest.mark.parametrize("rule", ["commit", "signed-commit", "statement"])
@pytest.mark.parametrize(
    ("statement", "held"),
    [(("dag", SIGNED), True), (("dag", FORGED), False), (("mira", SIGNED), False)],
    ids=["the approver's", "forged", "another's"],
)
def test_a_statement_proves_under_every_rule_that_asks_git(rule, statement, held):
    proof = proven("dag", rule, PEOPLE, [made("mira@example.org")], statement)
    assert proof.held is held
    assert ("signed with a key of dag" in proof.words) is held


def test_an_address_belongs_to_a_person_whatever_its_capitals():
    assert owner_of("Dag@Example.org", PEOPLE) is DAG
    assert owner_of("", PEOPLE) is None


SHOP = "shop@example.org"
OF_THE_SHOP = {
    ident: Person(ident=ident, name=name, roles=("lead",), emails=(SHOP,))
    for ident, name in (("ada", "Ada Tarrowby"), ("dag", "Dag Varrick"))
}


class TestAnAddressOfSeveralPeople:
    """A shop's one mailbox names the shop: which of them it was, only a key can tell."""

    def test_proves_neither_by_itself(self):
        for ident, other in (("ada", "Dag Varrick"), ("dag", "Ada Tarrowby")):
            proof = proven(ident, ApprovalProof.COMMIT, OF_THE_SHOP, [made(SHOP)])
            assert not proof.held
            assert f"{other} has the same address" in proof.words

    def test_does_with_the_key_of_one(self):
        makers = [made(SHOP, signature=OWN)]
        assert proven("dag", ApprovalProof.SIGNED_COMMIT, OF_THE_SHOP, makers).held
        assert not proven("ada", ApprovalProof.SIGNED_COMMIT, OF_THE_SHOP, makers).held
