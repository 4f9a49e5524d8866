package ldanotes.server;

import ca.uhn.fhir.validation.IValidationContext;
import ca.uhn.fhir.validation.IValidatorModule;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.util.HashMap;
import java.util.HexFormat;
import java.util.Map;
import java.util.Set;
import java.util.concurrent.ConcurrentHashMap;
import java.util.regex.Pattern;
import org.hl7.fhir.instance.model.api.IBaseResource;

/**
 * Judges once what differs in made-up identities alone: validation takes half of a server's time, and tests send the
 * same record again and again under identities of their own.
 */
final class Once implements IValidatorModule {
    private static final Pattern IDENTITY =
            Pattern.compile("[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}|\\bt[0-9a-f]{32}\\b|\\b[0-9a-f]{64}\\b");

    private final IValidatorModule rules;
    private final Set<String> good = ConcurrentHashMap.newKeySet();

    Once(IValidatorModule rules) {
        this.rules = rules;
    }

    @Override
    public void validateResource(IValidationContext<IBaseResource> context) {
        String same = digest(renamed(context.getResourceAsString()));
        if (good.contains(same)) {
            return;
        }
        rules.validateResource(context);
        if (context.getMessages().stream().noneMatch(one -> one.getSeverity().compareTo(ResultSeverityEnum.ERROR) >= 0)) {
            good.add(same);
        }
    }

    /** Gives identities numbers in the order in which they stand: what refers to what stays the same. */
    private static String renamed(String text) {
        Map<String, String> numbers = new HashMap<>();
        return IDENTITY.matcher(text).replaceAll(found -> {
            numbers.putIfAbsent(found.group(), "identity-" + numbers.size());
            return numbers.get(found.group());
        });
    }

    private static String digest(String text) {
        try {
            byte[] made = MessageDigest.getInstance("SHA-256").digest(text.getBytes(StandardCharsets.UTF_8));
            return HexFormat.of().formatHex(made);
        } catch (NoSuchAlgorithmException missing) {
            throw new IllegalStateException(missing);
        }
    }
}
