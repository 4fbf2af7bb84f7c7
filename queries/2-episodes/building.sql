-- building: the policy values that build episodes, which hold for the whole store.
--
-- reads:     policy
SELECT policy.*
FROM policy
WHERE policy.from_date IS NULL
